import sys,time,torch,multiprocessing as mp
from training.recipe import Recipe
def one(backbone,size,steps,compiled,barrier,out,batch=128,style=0.5,tag=''):
    torch.set_num_threads(2)
    import training.learning.train as T
    from training.pictures.forms import load_forms
    from training.pictures.images import Canvases
    from training.pictures.augment import Chance
    from training.network import SortNet
    import copy
    dev=torch.device('cuda' if torch.cuda.is_available() else 'cpu'); table=load_forms()
    r=Recipe(backbone=backbone,size=size,batch=batch,keep_weight=2.0,style=style,light=1.3,zoom=0.2)
    n=512 if dev.type=='cuda' else 8
    c=Canvases(torch.randint(0,255,(n,3,320,320),dtype=torch.uint8),torch.full((n,2),300.)).to(dev)
    lab=T.Labels(torch.randint(0,29,(n,)),torch.randint(0,9,(n,)),torch.zeros(n,dtype=torch.long)).to(dev)
    net=SortNet(backbone,30,10,style=style,pretrained=True).to(dev).to(memory_format=torch.channels_last)
    before=copy.deepcopy(net.backbone).eval().requires_grad_(False)
    avg=copy.deepcopy(net).requires_grad_(False)
    t=time.time()
    if compiled: net.compile(dynamic=False); before.compile(dynamic=False)
    opt=torch.optim.AdamW(net.parameters(),lr=1e-4,fused=dev.type=='cuda')
    L=T.LossOf(r,table,before,dev); ch=Chance(0,dev); net.train()
    def step(i):
        idx=torch.randint(0,n,(batch,),device=dev)
        loss=L(net,c,lab,idx,ch); opt.zero_grad(set_to_none=True); loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(),5.0); opt.step(); T.update_average(avg,net,.99,i)
    for i in range(8): step(i)
    if dev.type=='cuda': torch.cuda.synchronize()
    w=time.time()-t
    barrier.wait(); t=time.time()
    for i in range(steps): step(i)
    if dev.type=='cuda': torch.cuda.synchronize()
    out.put((steps*batch/(time.time()-t),w))
def go(k,*a,**kw):
    ctx=mp.get_context('spawn'); b=ctx.Barrier(k); q=ctx.Queue()
    ps=[ctx.Process(target=one,args=(*a,b,q),kwargs=kw) for _ in range(k)]
    t=time.time(); [p.start() for p in ps]; [p.join() for p in ps]
    v=[q.get() for _ in ps]
    print(f'{k} procs {a} {kw}: {sum(x for x,_ in v):.0f} img/s, warm {max(w for _,w in v):.0f}s, total {time.time()-t:.0f}s',flush=True)
if __name__=='__main__':
    if not torch.cuda.is_available(): go(1,'lite0',64,1,False,batch=4); go(1,'lite0',64,1,True,batch=4); sys.exit()
    go(1,'lite2',260,60,False)
    go(4,'lite2',260,60,False)
    go(4,'lite0',224,80,False)
    go(1,'lite2',260,80,True)
    go(4,'lite2',260,80,True)
